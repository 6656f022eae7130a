import sys; sys.path.insert(0,'.')
from common import *; from props import *
import pandas as pd
T=Table('09_sample_size','sample-size plans')
up=lambda x:math.ceil(x-1e-9)
def n_prop(p,d,N=None,q=None):
    q=q or z(); n0=q*q*p*(1-p)/d**2; return (n0, n0 if N is None else n0/(1+(n0-1)/N))
for id_,p,d,N,q,pub,prov,src in [('cochran-island',.5,.05,3200,2.0,dict(n0='400',n='356'),'MEMORY','Cochran 1977 ch.4 (blood group O, d=5%, t=2, N=3200): n0 400, n 356'),
 ('kk-1pct',.5,.01,None,None,dict(n0='9604'),'SEEN-2ND','Kauermann & Kuechenhoff 2010 p.57 in cran/samplingbook tests_ch2.r'),('kk-5pct-300',.5,.05,300,None,dict(n='169'),'SEEN-2ND','Kauermann & Kuechenhoff 2010 p.57'),('kk-10-10-a',.2,.1,10,None,dict(n='9'),'SEEN-2ND','Kauermann & Kuechenhoff table 2.2'),('kk-10-10-b',.3,.1,10,None,dict(n='9'),'SEEN-2ND','same'),('kk-10-10-c',.4,.1,10,None,dict(n='10'),'SEEN-2ND','same'),('kk-10-10-d',.5,.1,10,None,dict(n='10'),'SEEN-2ND','same'),('epir-545',.15,.03,None,None,dict(n0='545'),'SEEN','cran/epiR man/epi.sssimpleestb.Rd')]:
    a,b=n_prop(p,d,N,q); T.add('nprop-'+id_,'n0=z^2 p q/d^2; n=n0/(1+(n0-1)/N); round up',dict(p=p,d=d,N=N,z=q or z()),dict(n0=up(a),n=up(b),n0_raw=a,n_raw=b),pub,prov,src,'own python')
def wilson_n(p,h,conf=.95,N=None):
    """smallest n with Wilson half-width (at x=p*n, non-integer allowed) <= h; optional fpc n_eff"""
    q=z(1-conf)
    def hw(n):
        ne=n if N is None else (n*(N-1)/(N-n) if n<N else 1e18); return q/(1+q*q/ne)*math.sqrt(p*(1-p)/ne+q*q/(4*ne*ne))
    lo=1
    while hw(lo)>h: lo=lo*2
    a,b=lo//2,lo
    while b-a>1:
        m=(a+b)//2
        if hw(m)>h: a=m
        else: b=m
    return b if hw(1)>h else 1,hw(b)
for p in (.5,.7,.8,.9,.95,.98):
    for h in (.03,.05,.07,.10,.15):
        for N in (None,5000,10000):
            n,w=wilson_n(p,h,N=N);T.add(f'wilson-n-{p}-{h}-{N}','smallest n with Wilson half-width <= h at anticipated p'+('' if N is None else ', fpc n_eff=n(N-1)/(N-n)'),dict(p=p,half_width=h,conf=.95,N=N),dict(n=n,half_width_at_n=w,n_wald=up(n_prop(p,h,N)[1])),None,'LIBRARY','own search; Wald n == statsmodels samplesize_confint_proportion','own python')
from statsmodels.stats.proportion import samplesize_confint_proportion as sc
for p,h in [(.5,.05),(.9,.05),(.8,.1)]: assert abs(sc(p,h)-n_prop(p,h)[0])<1e-9
for p in (.01,.02,.05,.1): T.add(f'zero-event-{p}','n so that 0 of n puts the one-sided 95% upper limit below p: ln(.05)/ln(1-p)',dict(p=p,conf=.95),dict(n=up(math.log(.05)/math.log(1-p))),{.01:dict(n='299'),.05:dict(n='59')}.get(p,{}),'MEMORY','standard "59 for 5%, 299 for 1%" values','own python')
# mean
a=4*85.6/1.9**2;T.add('cochran-seedlings','n0=(t S/d)^2 ; n=n0/(1+n0/N)',dict(S2=85.6,mean=19,rel=.10,t=2,N=430),dict(n0=round(a),n=round(a/(1+a/430)),n0_raw=a,n_raw=a/(1+a/430)),dict(n0='95',n='78'),'MEMORY','Cochran 1977 ch.4 seedling bed example: n0 95, n 78','own python')
for S,d,N,pub in [(10,4,300,'23'),(10,1,300,'169')]: n0=(z()*S/d)**2;n=n0/(1+n0/N);T.add(f'kk-mean-{d}','mean, fpc: n=n0/(1+n0/N)',dict(S=S,d=d,N=N),dict(n=up(n),n_raw=n,n0_raw=n0),dict(n=pub),'SEEN-2ND','Kauermann & Kuechenhoff 2010 p.56 in samplingbook tests_ch2.r','own python',slack=1.01,note='K&K 169 vs ceil(168.8)=169')
n0=(z()*30/10)**2;n=n0/(1+(n0-1)/278);T.add('deer','mean with fpc (Levy & Lemeshow eq 3.15)',dict(S=30,d=10,N=278,conf=.95),dict(n=up(n),n_raw=n),dict(n='28'),'SEEN','cran/epiR epi.sssimpleestc.Rd example 2 text says 28','own python','28 is a bug: epiR 2.0.57 (run here: 27.857) applies the fpc twice; the current epiR source applies it once (30.85 -> 31, as here) but its help text still says 28')
def n_mean_t(s,d,conf=.95):
    n=2
    while stats.t.ppf(.5+conf/2,n-1)*s/math.sqrt(n)>d: n+=1
    return n
for s,d in [(1,.5),(1,.25),(.3,.1),(.5,.1),(2,.5)]: T.add(f'n-mean-t-{s}-{d}','smallest n with t half-width <= d (plug-in s)',dict(s=s,d=d,conf=.95),dict(n=n_mean_t(s,d),n_z=up((z()*s/d)**2)),None,'LIBRARY','own search','own python')
# two proportions
def n2(p1,p2,power,alpha=.05,kind='pooled'):
    za=z(alpha);zb=stats.norm.ppf(power);pb=(p1+p2)/2
    if kind=='pooled': return (za*math.sqrt(2*pb*(1-pb))+zb*math.sqrt(p1*(1-p1)+p2*(1-p2)))**2/(p1-p2)**2
    return (za+zb)**2*(p1*(1-p1)+p2*(1-p2))/(p1-p2)**2
def fleiss_cc(n,p1,p2): return n/4*(1+math.sqrt(1+4/(n*abs(p1-p2))))**2
for p1,p2,pw,pub,prov,src in [(.6,.7,.8,dict(n='356',n_cc='376'),'MEMORY','Fleiss, Levin & Paik Table A.4 (376 with continuity correction)'),(.5,.75,.9,dict(n='77',n_raw='76.7'),'MEMORY','R ?power.prop.test example n=76.7'),(.30,.15,.8,dict(n='121'),'SEEN','cran/epiR epi.sscohortc.Rd example 3 (121 per arm)'),(.25,.40,.9,{},'LIBRARY','R power.prop.test'),(.9,.8,.8,{},'LIBRARY','R power.prop.test'),(.95,.85,.8,{},'LIBRARY','R'),(.7,.5,.8,{},'LIBRARY','R')]:
    a=n2(p1,p2,pw);T.add(f'n2-{p1}-{p2}-{pw}','two independent proportions per arm (fish NOT clustered), pooled-variance z; Fleiss continuity-corrected',dict(p1=p1,p2=p2,power=pw,alpha=.05),dict(n=up(a),n_raw=a,n_unpooled=up(n2(p1,p2,pw,kind='u')),n_cc=up(fleiss_cc(a,p1,p2))),pub,prov,src,'own python; R power.prop.test')
de=1+.05*29;T.add('deff-epir','design effect 1+(m-1)icc; n per arm = ceil(deff*n)',dict(icc=.05,m=30,p1=.30,p2=.15,power=.8),dict(deff=de,n_arm=up(n2(.3,.15,.8)*de)),dict(deff='2.45',n_arm='296'),'SEEN','cran/epiR epi.sscohortc.Rd example 3 (592 total, 296 per arm)','own python')
# stove clusters
def clus1(b,p,eps_rel,rho,conf,N=None,sd=0):
    q=stats.norm.ppf(.5+conf/2);cv=sd/b;D=1+(b*(1+cv*cv)-1)*rho if sd else 1+(b-1)*rho;n=q*q*p*(1-p)/(eps_rel*p)**2*D;k=n/b;k2=k if N is None else k/(1+k/N);return D,n,k,k2
for nm,(b,sd,N),pub in [('a',(75,0,None),'67'),('b',(75,35,None),'81'),('c',(75,35,220),'60')]:
    D,n,k,k2=clus1(75,.46,.10,.20,.90,N,sd);T.add('stove-'+nm,'clusters needed to estimate one proportion',dict(b=75,sd_b=sd,p=.46,eps_rel=.1,rho=.2,conf=.9,N_clusters=N),dict(deff=D,n_individuals=n,clusters_raw=k2,clusters=up(k2)),dict(clusters=pub),'SEEN','cran/epiR epi.ssclus1estb.Rd','own python')
# tanks per arm
def var_tank(p,m,icc): return p*(1-p)*(1+(m-1)*icc)/m
def power_tank(k,m,p1,p2,icc,alpha=.05):
    s2=(var_tank(p1,m,icc)+var_tank(p2,m,icc))/2;df=2*k-2;nc=abs(p1-p2)/math.sqrt(2*s2/k);tc=stats.t.ppf(1-alpha/2,df);return stats.nct.sf(tc,df,nc)+stats.nct.cdf(-tc,df,nc)
def tanks(p1,p2,m,icc,power=.8,alpha=.05):
    k=2
    while power_tank(k,m,p1,p2,icc,alpha)<power and k<500:k+=1
    q=z(alpha)+stats.norm.ppf(power);kz=q*q*(var_tank(p1,m,icc)+var_tank(p2,m,icc))/(p1-p2)**2;return k,kz
for p1,p2 in ((.9,.75),(.9,.8),(.8,.6),(.95,.90)):
    for m in (30,50,100,200):
        for icc in (0,.01,.02,.05,.1):
            k,kz=tanks(p1,p2,m,icc);T.add(f'tanks-{p1}-{p2}-{m}-{icc}','tanks per arm, pooled t on tank proportions (noncentral t), tank variance p q [1+(m-1)icc]/m',dict(p1=p1,p2=p2,fish_per_tank=m,icc=icc,power=.8,alpha=.05),dict(tanks_per_arm=k,power_at_k=power_tank(k,m,p1,p2,icc),tanks_z_raw=kz,hayes_bennett=up(1+kz)),None,'LIBRARY','noncentral t; Hayes & Bennett 1999 IJE 28:319-326 adds 1 cluster to the z formula; simulation check in 03c','own python scipy nct')
for k in (3,4,5,6):
    for m in (50,100):
        for icc in (.02,.05,.1): T.add(f'power-{k}-{m}-{icc}','power of pooled t, .90 vs .75',dict(tanks_per_arm=k,fish_per_tank=m,icc=icc,p1=.9,p2=.75),dict(power=power_tank(k,m,.9,.75,icc)),None,'LIBRARY','compare 03c_simulation_tank_methods.csv t_pooled_p','own python')
# t test
from statsmodels.stats.power import TTestIndPower
n=TTestIndPower().solve_power(1,power=.9,alpha=.05);T.add('powert','two-sample t, delta=1 sd=1 power .9: n per arm',dict(delta=1,sd=1,power=.9),dict(n_raw=n,n=up(n)),dict(n_raw='22.02110'),'MEMORY','R ?power.t.test example: n = 22.02110','statsmodels TTestIndPower',slack=2)
T.add('detect-hyper','hypergeometric: P(no defective in sample n | D in N)',dict(N=5000,D=50,n=58),dict(p0=stats.hypergeom.pmf(0,5000,50,58),p0_binomial=.99**58),None,'LIBRARY','scipy.stats.hypergeom','own python')
T.save()
T=Table('10_control_charts','daily monitoring charts')
w=[12,15,8,10,4,7,16,9,14,10,5,6,17,12,22,8,10,5,13,11,20,18,24,15,9,12,7,13,9,6];n=50;pb=sum(w)/(30*n);s=math.sqrt(pb*(1-pb)/n)
S_='NIST/SEMATECH e-Handbook 6.3.3.2 (30 wafers x 50 chips)'
T.add('nist-pchart','p chart, constant n, 3 sigma',dict(defects=w,n=n),dict(pbar=pb),dict(pbar='0.2313'),'SEEN-2ND',S_+', pbar .2313 quoted on a textbook-question page; counts = Montgomery orange juice data in cran/qcc orangejuice','own python')
T.add('nist-pchart','p chart, constant n, 3 sigma',dict(defects=w,n=n),dict(sigma=s,UCL=pb+3*s,LCL=pb-3*s),dict(UCL='0.4102',LCL='0.0524'),'MEMORY',S_+'; R qcc 2.7 run here gives the same','own python')
T.add('nist-pchart','p chart points outside limits (1-based)',dict(defects=w,n=n),dict(out_of_limits='x'),None,'LIBRARY','R qcc violations$beyond.limits','own python')
oj=pd.read_csv('../data/orangejuice.csv');assert oj.D.values[:30].tolist()==w,(oj.D.values[:30].tolist())
ool=[i+1 for i,d in enumerate(w) if d/n>pb+3*s or d/n<pb-3*s];print('out',ool)
T.rows[-1]['expected']=';'.join(map(str,ool))
e=[52.0,47.0,53.0,49.3,50.1,47.0,51.0,50.1,51.2,50.5,49.6,47.6,49.9,51.3,47.8,51.2,52.6,52.4,53.6,52.1];zz=[50.];lam=.3;sg=2.0539
for v in e: zz.append(lam*v+(1-lam)*zz[-1])
pubz='50.00 50.60 49.52 50.56 50.18 50.16 49.21 49.75 49.85 50.26 50.33 50.11 49.36 49.52 50.05 49.38 49.92 50.73 51.23 51.94 51.99'.split()
h=3*sg*math.sqrt(lam/(2-lam));T.add('nist-ewma','EWMA, asymptotic limits',dict(data=e,lam=lam,target=50,sigma=sg,L=3),{**{f'z{i}':v for i,v in enumerate(zz)},'UCL':50+h,'LCL':50-h},{**{f'z{i}':v for i,v in enumerate(pubz)},'UCL':'52.5884','LCL':'47.4115'},'SEEN-2ND','NIST/SEMATECH e-Handbook 6.3.2.4, verbatim in a public evidence.py','own python','handbook LCL 47.4115 uses factor truncated to 0.4201; exact 47.411587 rounds to 47.4116',slack=1.02)
T.add('nist-ewma-exact','EWMA, time-varying limits L sigma sqrt(lam/(2-lam)(1-(1-lam)^(2i)))',dict(lam=lam,target=50,sigma=sg,L=3),{f'UCL{i}':50+3*sg*math.sqrt(lam/(2-lam)*(1-(1-lam)**(2*i))) for i in (1,2,3,5,10,20)},None,'LIBRARY','R qcc ewma','own python')
c=[324.925,324.675,324.725,324.350,325.350,325.225,324.125,324.525,325.225,324.600,324.625,325.150,328.325,327.250,327.825,328.500,326.675,327.775,326.875,328.350];k=.3175;hh=4.1959;S=l=0;hi=[];lo=[]
for v in c: S=max(0,S+v-325-k);l=max(0,l+325-k-v);hi.append(S);lo.append(l)
ph='0.00 0.00 0.00 0.00 0.03 0.00 0.00 0.00 0.00 0.00 0.00 0.00 3.01 4.94 7.45 10.63 11.99 14.44 16.00 19.04'.split()
T.add('nist-cusum','tabular CUSUM, k=.3175, h=4.1959',dict(data=c,target=325,k=k,h=hh),{**{f'hi{i+1}':v for i,v in enumerate(hi)},**{f'lo{i+1}':v for i,v in enumerate(lo)},'first_signal':next(i+1 for i,v in enumerate(hi) if v>hh)},{**{f'hi{i+1}':v for i,v in enumerate(ph)},'first_signal':'14'},'MEMORY','NIST/SEMATECH e-Handbook 6.3.2.3','own python',slack=1.01)
# varying n p chart + Laney
x=[46,44,41,48,57,39,45,28];nn=[50,50,48,52,60,45,50,50];pb=sum(x)/sum(nn);o={'pbar':pb}
zi=[(a/b-pb)/math.sqrt(pb*(1-pb)/b) for a,b in zip(x,nn)];mr=np.mean(np.abs(np.diff(zi)))/1.128
for i,(a,b) in enumerate(zip(x,nn)):
    s=math.sqrt(pb*(1-pb)/b);o[f'z{i+1}']=zi[i];o[f'UCL{i+1}']=min(1,pb+3*s);o[f'LCL{i+1}']=max(0,pb-3*s)
T.add('syn-pchart-varying','p chart with daily n',dict(x=x,n=nn),o,None,'LIBRARY','R qcc(type="p",sizes=n)','own python');T.add('syn-laney','Laney p-prime sigma_z = mean|diff z|/1.128',dict(x=x,n=nn),dict(sigma_z=mr,UCL1=min(1,pb+3*mr*math.sqrt(pb*(1-pb)/50)),LCL1=max(0,pb-3*mr*math.sqrt(pb*(1-pb)/50))),None,'LIBRARY','Laney 2002','own python')
T.save()
